"""Practice: the live machine under an operator's hands, drills and how they went."""
