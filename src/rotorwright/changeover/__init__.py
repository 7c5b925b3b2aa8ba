"""The job: plan, gates, journal, steps, roll back."""
