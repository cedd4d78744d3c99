"""Property laws of moist air, the atmosphere, the bed, the ground and biology."""
