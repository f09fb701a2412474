"""The review site: people sign in, see what is new, and decide where they read; the only room with Starlette."""
