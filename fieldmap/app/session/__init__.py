"""What Streamlit's session holds: the open plan, answers, what was worked out."""
