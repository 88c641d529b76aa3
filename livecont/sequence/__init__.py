"""Notes in, pattern out: hearing the links, the rules of continuation, the chain to come."""
