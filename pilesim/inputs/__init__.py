"""What comes in: scenarios (TOML to frozen dataclasses)."""
