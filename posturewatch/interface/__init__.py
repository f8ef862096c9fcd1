"""What `import posturewatch` offers for an analysis of one's own: pictures, films and practices, measured."""
