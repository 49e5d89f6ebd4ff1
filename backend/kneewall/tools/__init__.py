"""Tools around the rule language: what rests on weak sources, what changed, where a result comes from, schemas."""
