"""What a meter at the aircraft means: the causes that fit, and the next measurement that tells them apart."""
