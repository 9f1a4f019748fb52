"""Who may reach the server from the network: certificates, one-time codes, paired devices and their roles."""
