"""The kernels on a CUDA card: the same source as on a CPU, read once more in single precision.

`twin` reads the modules of `underlit.kernels` again with every literal as single precision. In place of a few it takes
those of this package, by the same names: how kernels are compiled (`jit`), how a packet carries its bands (`bands`),
what a ray meets first (`bvh`) and what depends on the digits of a number (`real`). `loop` is the kernel itself.
Nothing here is imported unless a card is asked for: it needs numba-cuda.
"""
