"""What an answer means: likelihoods, posterior, key, next question. Arrays in, arrays out."""
