"""One page per question; streamlit runs a page from top to bottom."""
