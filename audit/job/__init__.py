"""The job folder: models, reading, validation, labels of photos."""
