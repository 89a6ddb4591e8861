"""The page on a phone in the shop: one app factory, one module per page; no logic of its own."""
