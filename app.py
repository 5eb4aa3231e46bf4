"""Start with ``streamlit run app.py``; ``fieldmap app`` does the same."""

from fieldmap.app.main import main

main()
