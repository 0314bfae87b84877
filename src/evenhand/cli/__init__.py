"""Arguments to job, result to text or JSON, error to exit status."""
