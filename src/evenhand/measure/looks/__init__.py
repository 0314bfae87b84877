"""What a look is and what it does: kind, place, health, errors of its tables."""
