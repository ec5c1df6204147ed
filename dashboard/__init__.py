"""The courtside page: a running capture goes in, what coach and athlete look at comes out."""
