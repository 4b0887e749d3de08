"""The order a crew gets: steps, quantities, cautions."""
