"""Maps: what they show as plain numbers, their geometry and their drawing."""
