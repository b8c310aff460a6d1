"""What the director and the players get: sheets, workbook, marked score. Only this package
draws."""
