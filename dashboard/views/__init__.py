"""One page a question; a page is a script that streamlit runs from top to bottom."""
