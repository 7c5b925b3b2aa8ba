"""MAVLink 2: identity, settings, files, commands and telemetry of a running application."""
