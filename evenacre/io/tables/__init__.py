"""Tables of text and their cells, before they have meanings: of logs, tickets and blockages."""
