"""Jobs that survive anything: a store, a supervisor, and a child process for each solve."""
