"""From a reading outside its limit to a finding, a disposition and a cutting plan."""
