"""Known rows become hours, surveys and elongations; what other rows contradict is set aside, with reasons."""
