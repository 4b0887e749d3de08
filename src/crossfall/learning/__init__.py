"""From an agency's own records to proposed rates, shown before they are accepted."""
