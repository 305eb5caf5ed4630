"""Kernels as parts of others: translated for LLVM, and made into machine code only together with what calls them."""

from __future__ import annotations

from functools import cache

from llvmlite.binding import Linkage
from numba import types
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, PassManager
from numba.core.typed_passes import (
    IRLegalization,
    NativeLowering,
    NoPythonBackend,
    NopythonTypeInference,
    PreLowerStripPhis,
)
from numba.core.typing import Context
from numba.core.untyped_passes import (
    DeadBranchPrune,
    FixupArgs,
    GenericRewrites,
    IRProcessing,
    ReconstructSSA,
    RewriteSemanticConstants,
    TranslateByteCode,
)


class _PartLibrary(JITCodeLibrary):
    """The code of one kernel; what it calls is linked in once a whole kernel asks for it."""

    @property
    def codegen(self):
        return self

    def set_env(self, env_name, env):
        """No code, no environment."""

    def finalize(self):
        self._finalized = True

    def get_pointer_to_function(self, name):
        return 0

    def _get_module_for_linking(self):
        if self._shared_module is None:
            module = self._own()
            for library in self._called():
                if isinstance(library, _PartLibrary):
                    module.link_in(library._own())
                else:
                    module.link_in(library._get_module_for_linking(), preserve=True)
            self._shared_module = module
        return self._shared_module

    def _own(self):
        """A copy of the code of this kernel, which may meet others of itself."""
        module = self._final_module.clone()
        for function in module.functions:
            if not function.is_declaration and function.linkage == Linkage.external:
                function.linkage = "linkonce_odr"
        return module

    def _called(self):
        """Code of all that is called from here, directly or not; callers first, as what none has named is dropped."""
        found, todo = {}, [(self, iter(self._linking_libraries))]
        while todo:
            library, called = todo[-1]
            following = next((other for other in called if other not in found), None)
            if following is None:
                todo.pop()
                found[library] = None
            elif isinstance(following, _PartLibrary):
                todo.append((following, iter(following._linking_libraries)))
            else:
                found[following] = None
        return [library for library in reversed(found) if library is not self]


class _Typing(Context):
    """What numba knows of types; and it remembers what each operator makes of which, as there is much to go through.

    For a sum of two numbers alone it asks everything that `+` can mean: strings, lists, arrays. What is compiled for
    who asks, like `min`, is asked for anew.
    """

    __slots__ = ("_found",)

    def __init__(self, context: Context) -> None:
        self.__dict__, self._found = context.__dict__, {}

    def resolve_function_type(self, func, args, kws):
        func = self._lookup_global(func) or func
        key = func, args
        if not kws and key in self._found:
            return self._found[key]
        signature = super().resolve_function_type(func, args, kws)
        if isinstance(func, types.Function) and signature and func.get_impl_key(signature) is func.typing_key:
            self._found[key] = signature
        return signature


_typing = cache(_Typing)  # one for all kernels, as numba keeps what it compiles by who asks


# numba's own, but for those that look for what no kernel has: closures, `with`, tuples to unroll, array expressions.
_PASSES = (
    TranslateByteCode,
    FixupArgs,
    IRProcessing,
    RewriteSemanticConstants,
    DeadBranchPrune,
    GenericRewrites,
    ReconstructSSA,
    DeadBranchPrune,
    NopythonTypeInference,
    PreLowerStripPhis,
    IRLegalization,
    NativeLowering,
    NoPythonBackend,
)


class Part(CompilerBase):
    """numba's compiler, in fewer steps, and with another end to them."""

    def define_pipelines(self):
        state = self.state
        state.library = _PartLibrary(state.targetctx.codegen(), state.func_id.func_qualname)
        state.typingctx = _typing(state.typingctx)
        passes = PassManager("part")
        for step in _PASSES:
            passes.add_pass(step, step.name())
        passes.finalize()
        return [passes]
