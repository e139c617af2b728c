"""A runner of service procedures that does not move on until each gate is met."""
