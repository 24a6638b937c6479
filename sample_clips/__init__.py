"""The demo case: a practice tooth on the bench, and the program that draws its recording."""
