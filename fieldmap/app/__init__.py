"""The app: pages of widgets over plan folders."""
