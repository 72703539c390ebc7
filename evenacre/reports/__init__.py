"""What people look at: maps, tables, documents."""
