"""What is taught: exercises, their grades, and what to practise next."""
