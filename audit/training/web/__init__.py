"""Local pages to practise on: a bare photo, a trainee's marks, then the truth beside them."""
