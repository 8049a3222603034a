"""Reports of an audit: terminal, page, paper, pictures, workbook, tables."""
