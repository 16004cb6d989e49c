"""The aircraft's papers: what is in the box and around it, on one page that prints, and that anyone can check."""
