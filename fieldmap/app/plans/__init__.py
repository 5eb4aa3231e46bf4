"""Plan folders as the app keeps and changes them; knows no widget."""
