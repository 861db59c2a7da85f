-- What one chain uses up of the sprockets' price, so that it can be counted in the cost of a life.
ALTER TABLE strands ADD COLUMN sprocket_share_cost DOUBLE;
