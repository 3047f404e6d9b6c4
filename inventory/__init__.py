"""What the stock is: sheets of what each tank holds. Asks for readings, never for where they come from."""
