"""Every step from an empty database to the present tables; a step is never changed later."""
