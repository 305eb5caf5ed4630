"""Kernels as parts of others: translated for LLVM, and made into machine code only together with what calls them."""

from __future__ import annotations

from llvmlite.binding import Linkage
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, PassManager
from numba.core.compiler_machinery import register_pass
from numba.core.ir_utils import build_definitions
from numba.core.ssa import reconstruct_ssa
from numba.core.typed_passes import NativeLowering, NoPythonBackend, NopythonTypeInference, PreLowerStripPhis
from numba.core.untyped_passes import (
    DeadBranchPrune,
    FixupArgs,
    GenericRewrites,
    ReconstructSSA,
    RewriteSemanticConstants,
    TranslateByteCode,
)

from underlit.kernels.lowering import PartLower, PartTarget, call_of
from underlit.kernels.names import typing_of


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


# numba's passes keep account of when each name is last used, for its reference counts: these two do not.
@register_pass(mutates_CFG=True, analysis_only=False)
class _ToSSA(ReconstructSSA):
    _name = "to_ssa"

    def run_pass(self, state):
        state.func_ir = reconstruct_ssa(state.func_ir)
        state.func_ir._definitions = build_definitions(state.func_ir.blocks)
        return True


@register_pass(mutates_CFG=True, analysis_only=False)
class _FromSSA(PreLowerStripPhis):
    _name = "from_ssa"

    def run_pass(self, state):
        state.func_ir = self._strip_phi_nodes(state.func_ir)
        return True


@register_pass(mutates_CFG=True, analysis_only=False)
class _ToLLVM(NativeLowering):
    _name = "to_llvm"
    lowering_class = PartLower

    def run_pass(self, state):
        super().run_pass(state)
        kernel, target = state["cr"], state.targetctx
        target.remove_user_function(kernel.cfunc)
        call = call_of(kernel.fndesc, target, state.library)
        target._defns[kernel.cfunc].append(call, call.signature)
        return True


# numba's own, but for those that look for what no kernel has: closures, `with`, tuples to unroll, array expressions.
_PASSES = (
    TranslateByteCode,
    FixupArgs,
    RewriteSemanticConstants,
    DeadBranchPrune,
    GenericRewrites,
    _ToSSA,
    DeadBranchPrune,
    NopythonTypeInference,
    _FromSSA,
)


class _Compiler(CompilerBase):
    """numba's compiler, in fewer steps."""

    def passes(self, name, last):
        passes = PassManager(name)
        for step in (*_PASSES, last, NoPythonBackend):
            passes.add_pass(step, step.name())
        passes.finalize()
        return [passes]


class Whole(_Compiler):
    """For what Python calls; with numba's own end."""

    def define_pipelines(self):
        return self.passes("whole", NativeLowering)


class Part(_Compiler):
    """For what kernels call; with another end."""

    is_called = False  # whether it stays a function of its own within what calls it

    def define_pipelines(self):
        state = self.state
        state.library = _PartLibrary(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.is_called = self.is_called
        state.typingctx = typing_of(state.typingctx)
        is_checked = state.targetctx.enable_boundscheck  # an index out of bounds raises an exception
        if not is_checked:
            state.targetctx.__class__ = PartTarget
        return self.passes("part", NativeLowering if is_checked else _ToLLVM)


class CalledPart(Part):
    """The same, for a kernel that is not to be inlined."""

    is_called = True
