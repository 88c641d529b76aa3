"""What touches the world: ports, the clock, the sounding process, the recorder of takes."""
