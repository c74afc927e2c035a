"""Power against wind speed."""
