"""Pictures of planned and finished drawings."""
