"""Come out even: ground and load that end together."""
