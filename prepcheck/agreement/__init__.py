"""How well people, and people and tool, agree: grids of points that a person labels, and what follows from them."""
