"""How small a shift or a scatter a person hears, from their answers."""
