"""Pure functions from an object to HTML, text or SVG. No rule of the trade, no state."""
