"""The job's other computations: clearing, wall, weld starting values, leak test, steps. Pure, sourced, without a clock."""
