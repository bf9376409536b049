"""Local pages on which a competent person decides every item beside its picture."""
