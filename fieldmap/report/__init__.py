"""What people read: the five numbers, titles, charts, the report and the card."""

__all__ = ["findings", "palette", "pdf", "pictures", "summary"]
