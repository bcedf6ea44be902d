"""General statistics: arrays in, frozen results with their uncertainty out."""
