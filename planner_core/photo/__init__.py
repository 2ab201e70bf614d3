"""What photographs of the place say: their EXIF, how they were aimed, and blocks from them. No findings."""
