"""The result file and what it holds: the hinge between the trace and every answer."""
