"""What light means: PPFD, plant zones, dimming, colour and the rest, from a result, with standard errors."""
