"""Kernels as parts of others: translated for LLVM, and made into machine code only together with what calls them."""

from __future__ import annotations

from llvmlite.binding import Linkage
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder
from numba.core.compiler_machinery import AnalysisPass, register_pass
from numba.core.typed_passes import AnnotateTypes


class Part(CompilerBase):
    """numba's compiler, but for what becomes of the code."""

    def define_pipelines(self):
        passes = DefaultPassBuilder.define_nopython_pipeline(self.state)
        passes.add_pass_after(_IntoPartLibrary, AnnotateTypes)
        passes.finalize()
        return [passes]


@register_pass(mutates_CFG=False, analysis_only=True)
class _IntoPartLibrary(AnalysisPass):
    _name = "into_part_library"

    def __init__(self):
        AnalysisPass.__init__(self)

    def run_pass(self, state):
        state.library = _PartLibrary(state.targetctx.codegen(), state.func_id.func_qualname)
        return False


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
                part = isinstance(library, _PartLibrary)
                module.link_in(library._own() if part else library._get_module_for_linking(), preserve=not part)
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
        """Code of all that is called from here, directly or not, each once."""
        found, todo = {}, list(self._linking_libraries)
        while todo:
            library = todo.pop()
            if library not in found:
                found[library] = None
                todo += library._linking_libraries if isinstance(library, _PartLibrary) else []
        return found
