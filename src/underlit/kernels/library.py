"""Kernels as parts of others: translated for LLVM, and made into machine code only together with what calls them."""

from __future__ import annotations

from llvmlite.binding import Linkage
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder


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


class Part(CompilerBase):
    """numba's compiler, but for what becomes of the code."""

    def define_pipelines(self):
        state = self.state
        state.library = _PartLibrary(state.targetctx.codegen(), state.func_id.func_qualname)
        return [DefaultPassBuilder.define_nopython_pipeline(state)]
