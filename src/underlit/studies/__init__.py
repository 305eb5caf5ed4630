"""Studies: what follows from many scenes, rather than one.

`compare` sets results side by side, `sweep` moves values of a scene step by step, `place` searches for lamps, `meter`
holds the trace against readings. All stand on traces of one seed, so that what differs between two scenes is told
more sharply than either.
"""
