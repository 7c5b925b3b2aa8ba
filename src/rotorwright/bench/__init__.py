"""What is proved on the bench: orientation, receiver, arming, motors, power. Records in, verdicts with evidence out."""
