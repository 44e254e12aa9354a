"""Facts about ohmward."""
