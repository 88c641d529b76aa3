"""What happens in one sitting, as a pure machine: an event and the state in, effects out."""
