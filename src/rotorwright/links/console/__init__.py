"""Text consoles: settings, display characters and measurements of a running application, line by line."""
