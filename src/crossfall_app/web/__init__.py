"""The office pages: sign-in, morning, roads, plan and cards."""
