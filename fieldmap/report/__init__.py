"""What people read: the main numbers, titles, charts, the report and the card."""

__all__ = ["findings", "palette", "pdf", "pictures", "summary"]
