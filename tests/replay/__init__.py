"""A whole awkward campaign, played through by the command as a shop would."""
