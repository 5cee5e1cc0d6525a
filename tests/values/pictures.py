"""What makes a picture readable, from published recommendations."""

CONTRAST_OF_TEXT = 4.5
"""Least contrast of text (W3C, Web Content Accessibility Guidelines 2.1, criterion 1.4.3)."""

CONTRAST_OF_GRAPHICS = 3.0
"""Least contrast of what is needed to understand a graphic (WCAG 2.1, criterion 1.4.11)."""

A4_MM = (210.0, 297.0)
"""Width and height of a sheet (ISO 216:2007, table 1)."""

SMALLEST_TYPE_PT = 8.0
"""Smallest type that reads well in print (common practice, no source)."""


def relative_luminance(red: float, green: float, blue: float) -> float:
    """Of an sRGB colour with channels from 0 to 1 (WCAG 2.1, definition of relative luminance)."""

    def linear(channel: float) -> float:
        if channel <= 0.03928:
            return channel / 12.92
        return float(((channel + 0.055) / 1.055) ** 2.4)

    return 0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)


def contrast(first: float, second: float) -> float:
    """Of two relative luminances (WCAG 2.1, definition of contrast ratio)."""
    low, high = sorted((first, second))
    return (high + 0.05) / (low + 0.05)
