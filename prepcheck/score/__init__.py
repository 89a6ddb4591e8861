"""Spot and surface map to a score: bright share with its interval, patches, worst unit area, standing."""
