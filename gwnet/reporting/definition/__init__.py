"""Report definitions: what a TOML file may say, its period, its files and standing texts."""
