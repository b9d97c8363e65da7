"""What you read: reports, pages, sheets, charts and tables, made from results without computing anything new."""
