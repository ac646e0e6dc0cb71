"""Roads, tracks and paths (501 to 507): their evidence in each cell, and the network that it makes."""
