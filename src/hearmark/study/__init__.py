"""Closed-loop trials: how soon a station that follows a tactic is in the log."""
