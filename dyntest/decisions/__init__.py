"""What the numbers mean for the site: limits, factors, setup, criterion, bearing piles."""
