"""Parts of the Upload page: what each asks and shows."""
