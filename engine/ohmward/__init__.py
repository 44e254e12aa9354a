"""ohmward walks people through live-electrical work one safety gate at a time, and keeps the proof."""

__version__ = "0.1.0"
