"""The server: pages, files, live streams, who may ask."""
