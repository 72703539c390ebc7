"""Everything a stick holds: files told by their content, drives matched to fields and jobs."""
