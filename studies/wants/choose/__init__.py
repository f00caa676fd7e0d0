"""Which of many possible set-ups to use: how long, how high, which counterpoise, where the choke."""
