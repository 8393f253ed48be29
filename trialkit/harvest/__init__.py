"""From what the machine wrote to strip yields one can trust."""
