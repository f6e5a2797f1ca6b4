"""The work itself: coat build, care, cautions, how far a product goes, the weather of the day, the
sign-off."""
