"""What can be done with people: invitations, roles, and one's own account. Nobody's name ever enters the trail."""
