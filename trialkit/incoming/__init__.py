"""Files that come from elsewhere: folders, zips and XML, opened with care."""
