"""The Prefect flows; the only room that imports prefect."""
