"""Items: how photo findings and declared facts merge."""
