"""Whether the daemon lives: its watchdog, its crashes, and what a crash loop costs."""
